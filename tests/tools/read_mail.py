"""What a mail reader makes of a letter: Python's email package on the file named, as JSON."""

import email
import email.policy
import json
import sys

with open(sys.argv[1], "rb") as file:
    message = email.message_from_binary_file(file, policy=email.policy.default)


def part(p):
    content = p.get_content() if p.get_content_maintype() == "text" else p.get_payload(decode=True)
    size = None if p.is_multipart() else len(content)
    return {
        "type": p.get_content_type(),
        "id": p["Content-ID"],
        "disposition": p.get_content_disposition(),
        "text": content if isinstance(content, str) else None,
        "head": content[:8].hex() if isinstance(content, bytes) else None,
        "size": size,
        "parts": [part(q) for q in p.iter_parts()] if p.is_multipart() else [],
    }


defects = [type(d).__name__ for p in message.walk() for d in p.defects]
longest = max(len(line.rstrip(b"\r\n")) for line in open(sys.argv[1], "rb"))
print(
    json.dumps(
        {
            "subject": message["Subject"],
            "from": [str(a) for a in message["From"].addresses],
            "to": [str(a) for a in message["To"].addresses],
            "date": message["Date"].datetime.isoformat(),
            "message_id": message["Message-ID"],
            "headers": sorted({name.lower() for name in message.keys()}),
            "ascii": all(b < 128 for b in open(sys.argv[1], "rb").read()),
            "longest_line": longest,
            "defects": defects,
            "body": part(message),
        }
    )
)
