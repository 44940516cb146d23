"""Scale finders: from a reference of known size in the photo to millimetres in the plane of the face.

================ ======== ============================================ ==========================================
finder           priority class                                        needs from the user
================ ======== ============================================ ==========================================
by-hand          0        ``photonest.scale.by_hand:ByHand``           ``mm_per_px``
marker-sheet     10       ``photonest.scale.marker_sheet:MarkerSheet`` nothing
================ ======== ============================================ ==========================================
"""
