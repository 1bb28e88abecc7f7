"""What check and match print: tables, JSON, progress and summaries."""
