"""Planning a season: on which day each vehicle that is due should come, over all bays of a site.

``season`` says what goes in and comes out, ``costs`` what is better, ``room`` what is free. ``plan`` finds a plan: for
few visits by ``exact``; for more, ``problem`` numbers all, ``programme`` gives prices and a mix of patterns, ``mend``
lets shifts exchange what they do, ``transport`` tells what each place is worth, and ``assign`` gives visits the places.
``replanning`` keeps what was promised, ``first_come`` is what happens without a plan, ``bound`` what no plan can beat.
"""
