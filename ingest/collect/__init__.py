"""Bulk import: downloaded files become pages, and pages find their chart."""
