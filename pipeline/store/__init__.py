"""The store: editions of everything that was loaded, each complete and never changed once it is out."""

from pipeline.store.editions import Edition, Store

__all__ = ["Edition", "Store"]
