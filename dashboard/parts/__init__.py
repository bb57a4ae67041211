"""What pages are put together from: tables, pictures, downloads, explanations."""
