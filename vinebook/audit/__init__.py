"""Whether the book is what its journal says it is."""
