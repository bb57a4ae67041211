"""One function a question that a page or a command asks: each joins the store with the computing rooms."""
