"""What people read and keep: words, pages, pictures, labels, cards, exports. It knows values, never a gauge.

A new picture is a module plot_*.py beside the others. Imports everything below but link, rehearsal, board and backup.
"""
