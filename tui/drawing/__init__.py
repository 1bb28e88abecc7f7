"""Numbers in, rows of toned text out: pure drawing that knows neither widgets nor terminals."""
