from browser import browse, chromium, worded  # noqa: F401
