"""The nest planner: the half-plane, the arcs, the search, and the independent check."""
