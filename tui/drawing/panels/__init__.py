"""The rows of each panel of the screen. Pure: no toolkit."""
