"""The catalogue of blanks."""
