"""The screen of Loudness Sidecar. It draws what a feed yields and measures nothing itself."""
