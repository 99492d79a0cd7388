#!/bin/sh
# Fetch the free-licence packages named in README.md and pack their pictures, shrunk to 512 px, into OUT (a folder of JPEGs).
#   grounds.sh OUT [PYTHON]     (needs apt-get and a Python with opencv and scikit-image)
set -e
out=$(mkdir -p "$1" && cd "$1" && pwd); py=${2:-python3}
here=$(cd "$(dirname "$0")" && pwd)
t=$(mktemp -d); cd "$t"
apt-get download gimp-data krita-data extremetuxracer-data mate-backgrounds sweethome3d-furniture
for d in *.deb; do dpkg -x "$d" x; done
(cd x/usr/share/sweethome3d/furniture && mkdir -p u && cd u && for z in ../BlendSwap-CC-0.sh3f ../Scopia.sh3f; do "$py" -m zipfile -e "$z" "$(basename "$z" .sh3f)"; done)
"$py" "$here/grounds.py" "$t/x/usr/share" "$out"
rm -rf "$t"
