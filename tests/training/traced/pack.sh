#!/bin/sh
# Pack what a machine without network needs into .bed-pack/ at the repository's root: renderer.tar.xz (Mitsuba and Dr.Jit for
# that machine's Python, stripped to what is used) and grounds.tar (real pictures, see grounds.sh).
#   pack.sh [PYTHON VERSION, 3.12] [PYTHON with opencv and scikit-image for grounds.sh, python3]
set -e
ver=${1:-3.12}; py=${2:-python3}
here=$(cd "$(dirname "$0")" && pwd); root=$(cd "$here/../../.." && pwd)
out=$root/.bed-pack; mkdir -p "$out"
t=$(mktemp -d)
"$py" -m pip download -q --no-deps --only-binary=:all: --python-version "$ver" --platform manylinux_2_28_x86_64 --platform manylinux_2_27_x86_64 -d "$t/w" mitsuba==3.9.1 drjit==1.5.0
mkdir "$t/p"
for f in "$t"/w/*.whl; do "$py" -m zipfile -e "$f" "$t/p"; done
cd "$t/p"
rm -rf ./*.dist-info drjit/include mitsuba/include drjit/share mitsuba/share mitsuba/cmake mitsuba/data mitsuba/stubs
find . \( -name '*.pyi' -o -name '*.a' -o -name '*.cmake' -o -name '*.h' -o -name '*.hpp' \) -delete
for f in mitsuba/*_ad_*.so mitsuba/scalar_*.so; do
  case $f in mitsuba/cuda_ad_rgb.*|mitsuba/llvm_ad_rgb.*|mitsuba/scalar_rgb.*) ;; *) rm "$f" ;; esac
done
for f in mitsuba/plugins/*.so; do
  case $(basename "$f" .so) in
    area|bsplinecurve|constant|principled|diffuse|twosided|rectangle|hdrfilm|independent|multijitter|gaussian|box|path|bitmap|d65|uniform|srgb|merge|perspective|regular) ;;
    *) rm "$f" ;;
  esac
done
find . -name '*.so*' -exec strip --strip-unneeded {} + 2>/dev/null || true
find . -type f -perm -u+x -size +200k ! -name '*.so*' -delete
tar -c . | xz -4 -T2 >"$out/renderer.tar.xz"
if [ ! -f "$out/grounds.tar" ]; then
  sh "$here/grounds.sh" "$t/g" "$py"
  tar -C "$t/g" -cf "$out/grounds.tar" .
fi
rm -rf "$t"
ls -l "$out"
