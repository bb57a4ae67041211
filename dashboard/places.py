"""How a server is told its places; a module of its own, since starting the server wants none of the library."""

STORE_PLACE = "TAREBOOK_STORE"
"""Environment variable that says where the store lies."""
SETTINGS_PLACE = "TAREBOOK_SETTINGS"
"""Environment variable that names a settings file in place of the store's own."""
