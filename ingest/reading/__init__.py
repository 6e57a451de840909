"""From a picture of a page to what stands in its boxes. Knows nothing of students or months."""
