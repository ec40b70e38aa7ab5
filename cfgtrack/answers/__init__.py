"""The questions that can be put to a journal, a module a family and a function a question.

    from cfgtrack.answers.asking import Asking
    from cfgtrack.answers.state import state

    found = state(Asking("plant.db", at="2031-05-01T09:20:00Z"), "PUMP-1")

Each opens the journal, gathers, asks, and returns a value with its moment, of which `encode` makes JSON. Nothing else
answers: the command line parses arguments and prints.
"""
