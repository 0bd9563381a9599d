"""The verdict on heat and air of one weld record, where along the seam, and where to cut."""
