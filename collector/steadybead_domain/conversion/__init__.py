"""From the number on the wire to the engineering unit, with its quality."""
