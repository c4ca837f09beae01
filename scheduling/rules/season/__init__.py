"""Planning a season: on which day each vehicle that is due should come, over all bays of a site.

``season`` says what goes in and comes out, ``costs`` what is better, ``plan`` finds a plan, ``first_come`` what happens
without one, ``bound`` what no plan can beat.
"""
