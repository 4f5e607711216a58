"""What is known of a production's instruments, kept in one file: see ``store.Store``."""

from analyzer.lot.store.history import Entry
from analyzer.lot.store.place import FILE_NAME, file_in, files_of
from analyzer.lot.store.runs import Run
from analyzer.lot.store.station_checks import StationCheck
from analyzer.lot.store.store import Store, open_store

__all__ = [
    "FILE_NAME",
    "Entry",
    "Run",
    "StationCheck",
    "Store",
    "file_in",
    "files_of",
    "open_store",
]
