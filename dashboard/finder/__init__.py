"""The job finder: the search and the job that is opened."""
