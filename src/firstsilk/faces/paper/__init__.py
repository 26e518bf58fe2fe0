"""What leaves the printer: row tags, lot labels, the walk book, packet lists, day sheets. Frozen values in, PDF bytes out."""
