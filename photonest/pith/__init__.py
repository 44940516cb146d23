"""Pith finders: the growth centre of the rings."""
