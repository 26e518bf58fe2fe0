"""What leaves the printer? Row tags, lot labels, the walk book, packet lists, day sheets: frozen values in, PDF out."""
