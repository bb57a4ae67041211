"""The store: editions of everything that was loaded, each complete and never changed once it is out."""

from pipeline.store.editions import Edition, Store
from pipeline.store.load import LoadResult, load
from pipeline.store.rebuild import rebuild

__all__ = ["Edition", "LoadResult", "Store", "load", "rebuild"]
