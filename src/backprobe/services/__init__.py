"""The use cases: from a job to the arrays that the core takes, and back to an answer."""
