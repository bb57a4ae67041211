"""Trends: what sells and how that changes, what becomes of quotes, what goes together, what pays."""
