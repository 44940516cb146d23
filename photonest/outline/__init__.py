"""Finders of the edge of the wood.

``judged`` (`photonest.outline.judged:JudgedOutline`) asks the two others and gives the better answer; how far they lie
apart goes into its standard error. ``edge`` (`photonest.outline.edge:EdgeOutline`) takes off a plain background where
there is one, else lets regions of like colour and texture compete for the wood, for the bark about it and for the rest.
``contour`` (`photonest.outline.contour:ContourOutline`) proposes closed rims about many middles and chooses among them.
"""
