"""A second, slow reading of the rules, written from the text of their meanings alone: what the tool is held against.

    python -m tests.rules.oracle --seed 7 --cases 10000

`plain` judges by brute force, `worlds` draws plants, rules and histories, `plans` lays plans out, `rulings` has
variances, presence and the verdict, `census` counts what comes up, `drive` asks the tool by its public questions, and
`agreement` says where the two differ. What the text leaves open stands at the top of `plain` and `rulings`, with what
is taken.

What is not covered, and why:

- Selections by loop, size or facing, `empty`, and units that move along fixed to others: what they name is the same for
  every mode and condition, and the cases of the starter set and the tests of selections hold them.
- What is impossible: only what is possible beyond doubt is drawn; presence is enumerated apart.
- Reasons and cures in words: here it is told for whom and why, not in which sentence; a cure is tried where it is made.
- A trigger of `turns_true` in a rule without scope: the tool starts a clock for each item that makes it true, and the
  text may be read so or otherwise; cases are worked out by hand in `test_instances`.
- Late and corrected events: the journal's own reference orders them; what is judged here is the order that comes out.
- A clock that a mix of durations starts or meets only because it brings the steps into an order that they have neither
  at low, likely nor high: what any order breaks is asked otherwise.
- Any order, ways out and searches: they ask the same judgement of other orders.
- Custom conditions other than the shipped one: what they say is their own; that they are asked is seen of that one.
"""
