"""Parts of the page that says how sound the records are."""
