"""How documents look and what they are put together from: frozen values and texts in, PDF bytes out.

``document``: ``House`` (name, address, contact, colour, logo, paper of a shop; made by
``notifications.documents.house.describe_house``) and ``build_document(story, house=, title=, subject=, foot=,
receiver=)``, which puts the letterhead on the first page and the foot with "Page x of y" on each. With ``receiver``
it is a letter: the address shows through the window of a US #10 envelope on Letter, of a DL one on A4.

``parts``, what a story is made of: ``heading(text, level)``, ``write(text, style)`` for a paragraph,
``Bullets(texts)``, ``make_table(headings, rows, widths_mm, numbers=)``, ``make_facts(pairs, widths_mm)``,
``make_columns(columns, widths_mm)``, ``make_box(lines, is_warning=)``, ``make_key_figures(figures)``. ``proof``:
``SignHere(captions)``, ``QrCode(address, size, title)``, ``describe_check(address)``. ``pictures``:
``Figure(drawing, width)``. ``charts``: ``make_bars``, ``make_lines``. ``style``: ``BODY``, ``SMALL``, ``STRONG``,
``WARNING``, ``CELL``. Keep what belongs together with reportlab.platypus ``KeepTogether``.

Every part marks itself in the structure tree (``structure``). Who draws on the canvas by hand marks it with
``start_figure`` and ``end_figure``, or as ``canvas.artifact()``.
"""
