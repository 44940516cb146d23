"""Scale finders: from a reference of known size in the photo to millimetres in the plane of the face."""
