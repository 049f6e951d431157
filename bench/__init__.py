"""Speed and memory against the targets: `python -m bench`, or `make bench`.

Each part measures one thing that somebody waits for, prints it beside its target, and says when a
target is missed. Times are of this machine and this run; ratios travel better.
"""
