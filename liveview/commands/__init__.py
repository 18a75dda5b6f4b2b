"""The commands without a window, one module each; see ``liveview.cli``.

A command's module keeps heavy imports inside ``run``, so that its ``--help`` answers at once.
"""
