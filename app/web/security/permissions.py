"""Route permissions: the least role of each route, checked before the route runs.

A route that is not listed is for administrators only, and a test names it.
"""

ANYBODY = "anybody"

_ROUTES = {
    ANYBODY: """
        GET /api/health
        GET /sign-in
        POST /sign-in
        GET /enter/{token}
    """,
    "view": """
        GET /api/units
        GET /api/units/{unit_id}
        GET /api/trials
        GET /api/trials/{trial_id}
        GET /api/trials/{trial_id}/readings
        GET /api/trials/{trial_id}/log
        GET /api/runs/{run_id}
        GET /api/runs/{run_id}/stream
        GET /api/ranking
        GET /api/ranking/order
        GET /api/comparison
        GET /api/running-cost
        GET /api/rooms
        GET /api/loggers
        GET /api/smoke-sources
        GET /api/logger-profiles
        GET /api/tariffs
        GET /api/trash
        GET /api/problems/{kind}
        GET /figures/{name}.json
        GET /charts/{name}.{chart_format}
        GET /tables/{name}.{table_format}
        GET /package
        GET /package.zip
        GET /search
        GET /progress/{key}
        GET /units/{unit_id}/draft.{draft_format}
        GET /
        GET /ranking/pictures
        GET /ranking/order
        GET /ranking/weights
        GET /compare
        GET /curves
        GET /costs
        GET /tariffs
        GET /room
        GET /listen
        GET /listen/{clip_id}.wav
        GET /bulk/{kind}.csv
        GET /units
        GET /units/{unit_id}
        GET /units/{unit_id}/sound
        GET /units/{unit_id}/power
        GET /units/{unit_id}/ozone
        GET /units/{unit_id}/ratings
        GET /units/{unit_id}/claims
        GET /units/{unit_id}/clips
        GET /units/{unit_id}/draft
        GET /live
        GET /live/{run_id}
        GET /trials
        GET /trials/{trial_id}
        GET /trials/{trial_id}/figure.json
        GET /trials/{trial_id}/residuals.json
        GET /trials/{trial_id}/marks
        GET /rooms
        GET /rooms/{room_id}/edit
        GET /loggers
        GET /loggers/{logger_id}/edit
        GET /smoke-sources
        GET /smoke-sources/{source_id}/edit
        GET /units/{unit_id}/edit
        GET /trials/{trial_id}/edit
        GET /bench
        GET /changes
        GET /trash
        GET /method
        GET /growing
        GET /account
        POST /account/password
        POST /account/tokens
        POST /account/tokens/{token_id}/revoke
        POST /sign-out
    """,
    "add": """
        POST /api/units
        POST /api/units/{unit_id}/sound-levels
        POST /api/units/{unit_id}/power-levels
        POST /api/units/{unit_id}/prices
        POST /api/units/{unit_id}/parts
        POST /api/units/{unit_id}/claims
        POST /api/units/{unit_id}/ratings
        POST /api/units/{unit_id}/ozone-tests
        POST /api/trials
        POST /api/runs
        POST /api/runs/{run_id}/readings
        POST /api/runs/{run_id}/events
        POST /api/runs/{run_id}/finish
        GET /bulk
        POST /bulk
        POST /bulk/{token}
        GET /units/add
        POST /units/add
        POST /units/{unit_id}/sound
        POST /units/{unit_id}/power
        POST /units/{unit_id}/ozone
        POST /units/{unit_id}/ratings
        POST /units/{unit_id}/claims
        POST /units/{unit_id}/clips
        POST /live
        POST /live/demonstration
        POST /live/{run_id}/replay
        POST /live/{run_id}/events
        POST /live/{run_id}/events/{event_id}/undo
        POST /live/{run_id}/finish
        GET /trials/add
        POST /trials/add
        GET /trials/add/{token}
        POST /trials/add/{token}
        POST /trials/add/{token}/discard
        GET /trials/add/{token}/figure.json
        GET /rooms/add
        POST /rooms/add
        GET /loggers/add
        POST /loggers/add
        GET /smoke-sources/add
        POST /smoke-sources/add
        POST /tariffs
        POST /tariffs/reference
    """,
    "edit": """
        PATCH /api/units/{unit_id}
        PATCH /api/trials/{trial_id}
        POST /units/{unit_id}/edit
        POST /units/{unit_id}/trash
        POST /units/{unit_id}/untrash
        POST /units/{unit_id}/sound/{measurement_id}/take-back
        POST /units/{unit_id}/power/{measurement_id}/take-back
        POST /units/{unit_id}/ozone/{measurement_id}/take-back
        POST /units/{unit_id}/ratings/{rating_id}/take-back
        POST /units/{unit_id}/claims/{claim_id}/take-back
        POST /units/{unit_id}/clips/{clip_id}/take-back
        POST /units/{unit_id}/draft/points
        POST /units/{unit_id}/draft/verdict
        POST /units/{unit_id}/draft/verdict/withdraw
        POST /trials/{trial_id}/marks
        POST /trials/{trial_id}/edit
        POST /trials/{trial_id}/exclude
        POST /trials/{trial_id}/restore
        POST /trials/{trial_id}/trash
        POST /trials/{trial_id}/untrash
        POST /rooms/{room_id}/edit
        POST /loggers/{logger_id}/edit
        POST /smoke-sources/{source_id}/edit
    """,
    "administer": """
        POST /bench
        GET /accounts
        POST /accounts
        GET /accounts/{account_id}
        POST /accounts/{account_id}/role
        POST /accounts/{account_id}/password
        POST /accounts/{account_id}/disable
        POST /accounts/{account_id}/enable
        POST /accounts/{account_id}/tokens/{token_id}/revoke
    """,
}

# route, such as "GET /units/{unit_id}", to role
LEAST_ROLE = {route.strip(): role for role, routes in _ROUTES.items() for route in routes.strip().splitlines()}
