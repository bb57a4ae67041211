"""Parts of the page that is turned to a customer; of the records they ask `answers.customer` alone."""
