"""A finder that does not even import: the others must go on."""

raise RuntimeError("made to fail")
