"""A person at the gauge: shaft after shaft, each with a verdict, a label and a number, until the person ends it.

session.py is the loop over prompts and does no input or output of its own; last_shaft.py is what a person does about
the shaft measured last. bench.py says what they need of a bench: gauge_bench.py is a gauge as one, dial_bench.py weight
and dial. record.py writes journal and verdicts, rules.py has what they go by, choices.py the prompts, words.py a
verdict in words, tally.py the totals. Imports base, conversation, uncertainty, measurement, hand_bench, decision, wire,
archive, link, store, pipeline, study, sets and sorting.
"""
