"""Which sites there are. A site's rows are seen by a transaction that is set to it, and by no other."""
