"""Jobs kept in SQLite, with every change made to them."""
