"""The numbers behind the limits: thermal clocks, trapped liquid, bolts."""
