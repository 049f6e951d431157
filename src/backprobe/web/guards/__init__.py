"""What stands before every page: pure ASGI layers, each with one question.

From the outside in: headers on every answer, the declared size, the host asked for, the page that
a change comes from, the device that asks. They raise what they refuse; `app` puts them together.
"""
