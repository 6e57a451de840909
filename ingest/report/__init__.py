"""What is handed on: gradebook, readings, status, lists of returns and of what is missing."""
