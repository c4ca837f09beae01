"""Booking: what a site has free, and everything that a person does to an appointment.

``reading`` reads, ``finding`` proposes times, ``services`` books and changes; nothing else writes appointments.
"""
