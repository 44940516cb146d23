"""Wood: species, moisture and movement."""
