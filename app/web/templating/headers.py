"""Security headers: nothing is loaded from elsewhere, framed or sniffed, and no referrer is sent."""

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
PAGE_POLICY = _POLICY
# Plotly positions labels with style attributes; scripts and style sheets must be our own.
CHART_PAGE_POLICY = _POLICY + "; style-src-attr 'unsafe-inline'"
FRAMING_PAGE_POLICY = _POLICY + "; frame-src 'self'"  # a page with a preview
FRAMED_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; frame-ancestors 'self'"

# sent over https only; subdomains may be other services
HTTPS_ONLY_FROM_NOW = ("Strict-Transport-Security", "max-age=31536000")

SECURITY_HEADERS = {
    "Content-Security-Policy": PAGE_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}
