"""Planning a season: on which day each vehicle that is due should come, over all bays of a site.

``season`` says what goes in and comes out, ``costs`` what is better, ``room`` what is free, ``plan`` finds a plan and
``renew`` a new one that keeps what was promised. ``first_come`` is what happens without one, ``bound`` what no plan can
beat, ``checking`` tells what can't be in a plan.
"""
