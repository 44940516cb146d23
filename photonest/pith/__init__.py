"""Finders of the pith, the growth centre of the rings.

`photonest.pith.rings.RingPith`, name ``rings``, is the built-in one: from which way the rings run all over the face to
how straight they lie when unrolled about the pith.
"""
