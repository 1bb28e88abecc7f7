"""Files that are written whole or not at all, and databases that say what is wrong with them."""
