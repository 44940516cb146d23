"""Scale finders: from a reference of known size in the photo to millimetres in the plane of the face.

============== ======== ======================================================== ===================================
finder         priority class                                                    needs from the user
============== ======== ======================================================== ===================================
by-hand        0        ``photonest.scale.by_hand:ByHand``                       ``mm_per_px``
two-points     1        ``photonest.scale.two_points:TwoPoints``                 two points and their distance
known-diameter 2        ``photonest.scale.known_diameter:KnownDiameter``         ``diameter_mm``
marker-sheet   10       ``photonest.scale.marker_sheet:MarkerSheet``             nothing; the check line if measured
markers        15       ``photonest.scale.markers:Markers``                      nothing; the check line if measured
bar            20       ``photonest.scale.bar:Bar``                              ``square_mm``
ruler          25       ``photonest.scale.ruler:Ruler``                          ``ticks``: mm, or parts of an inch
card           30       ``photonest.scale.card:Card``                            nothing
paper          40       ``photonest.scale.paper:Paper``                          ``size`` for A3 and A5
============== ======== ======================================================== ===================================

Those that need a figure answer at once that it was not given. What they share: `camera` (the most likely view and its
covariance), `sides` and `edges` (straight edges below a pixel), `build` (a view as a `Scale`). What is done with it
once found: `height` (the face lies above or below the reference), `combine` (several references in one photo) and
`uncertainty` (the standard error where something is measured).
"""
