"""From a photo of a log's face to the largest safe nest of bowls, in millimetres."""

__version__ = "0.1.0"
