"""Items and files of the published site. The pages are rendered in `app/web/published/`.

Begin with `published_items.py`.
"""
