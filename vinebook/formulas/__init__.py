"""Numbers to numbers: pure functions on arrays, no database and no kinds."""
