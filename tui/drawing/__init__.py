"""Numbers in, rows of toned text out: pure drawing without widgets or terminals."""
