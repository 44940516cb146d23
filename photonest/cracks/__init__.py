"""Crack finders, and finders of the other defects that a bowl's wall must not contain.

``ridges`` (`photonest.cracks.finder:Ridges`) finds checks: lines darker or lighter than the wood on both sides.
"""
