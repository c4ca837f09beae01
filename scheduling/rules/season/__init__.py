"""Planning a season: on which day each vehicle that is due should come, over all bays of a site.

``season`` says what goes in and comes out, ``hours`` how a day is cut up, ``costs`` what is better, ``room`` what is
still free, ``plan`` finds a plan, ``replanning`` one around what was promised, ``first_come`` what happens without one, ``bound`` what no plan can beat,
``measures`` sets the three side by side, ``checking`` says what can't be in a plan.
"""
