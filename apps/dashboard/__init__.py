"""The app: the only place that knows param, Panel and a browser."""
