"""What goes out of a book and comes back: forms now, packages and copies later."""
