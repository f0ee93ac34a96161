"""The pages of the bench, in the order in which their addresses are tried."""

from fastapi import APIRouter

PAGE_ROUTERS: tuple[APIRouter, ...] = ()
