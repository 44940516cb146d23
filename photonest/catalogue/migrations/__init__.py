"""The steps from each shape of the database to the next."""
