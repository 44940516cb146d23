"""Crack finders, and finders of the other defects that a bowl's wall must not contain."""
