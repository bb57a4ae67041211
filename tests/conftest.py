"""Puts this folder on the path, so that tests of every room find the helpers that lie here."""
