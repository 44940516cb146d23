"""Finders of the edge of the wood.

`photonest.outline.edge.EdgeOutline`, name ``edge``, is the built-in one: a plain background is taken off where there is
one, else regions of like colour and texture compete for the wood, for the bark about it and for the rest.
"""
