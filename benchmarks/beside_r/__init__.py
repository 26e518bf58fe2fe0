"""Our mixed-model engine and R's general programs, timed in turn on the same records."""
