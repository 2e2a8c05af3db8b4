"""The street itself: calls the rooms in order; the front doors call only this."""
