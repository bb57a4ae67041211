"""Paper: what a customer or a manager takes home."""
