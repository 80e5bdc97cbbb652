from browser import browse, chromium  # noqa: F401
