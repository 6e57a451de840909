"""A person settles what is unsure: prompt and spreadsheet."""
