"""Drafts and articles as text: Markdown, HTML, and a page of their own to embed.

Begin with `draft_text.py`.
"""
