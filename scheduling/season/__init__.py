"""The season plan over the records: ``reading`` builds the season, ``services`` keeps the plan and books what a person
accepts. The rules are in ``scheduling.season.rules``.
"""
