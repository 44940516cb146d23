"""Finders of the edge of the wood.

``trained`` (`photonest.outline.trained:TrainedOutline`) asks a small trained network what is wood, what bark and what
neither, and places the edge by local colour and texture. ``edge`` (`photonest.outline.edge:EdgeOutline`) needs no
training: it takes off a plain background where there is one, else lets regions of like colour and texture compete; it
is asked where the network sees nothing.
"""
