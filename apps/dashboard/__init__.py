"""The app: the only place that knows Panel and a browser."""
