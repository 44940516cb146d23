"""Reports: pictures, the marker sheet, and what the turner takes to the lathe."""
