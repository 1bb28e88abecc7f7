"""One run: source, meter, advice, alerts and outlets put together."""
