from django.http import HttpRequest


def reader(request: HttpRequest) -> dict[str, object]:
    return {}
