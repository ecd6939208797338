"""Questions to a person and their answers, apart from the screen that shows them.

A session (measuring, guided calibration, the hand bench) asks prompts with an id and choices; a client (the terminal,
the page) shows them and answers. prompts.py has the values, questions.py the questions that recur,
desk.py the place where both meet. Imports base.
"""
