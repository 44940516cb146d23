"""Outline finders: the edge of the wood on the face, with bark and under bark."""
