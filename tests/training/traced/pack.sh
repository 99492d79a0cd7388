#!/bin/sh
# Pack what a machine without network needs into .bed-pack/ at the repository's root: renderer.tar.xz (Mitsuba and Dr.Jit for
# that machine's Python, stripped to what is used, with the LLVM that they compile by) and grounds.tar (real pictures, see
# grounds.sh).   pack.sh [PYTHON VERSION, 3.12] [PYTHON with opencv and scikit-image for grounds.sh, python3]
# (needs pip, gcc and apt-get install libllvm19)
set -e
ver=${1:-3.12}; py=${2:-python3}
here=$(cd "$(dirname "$0")" && pwd); root=$(cd "$here/../../.." && pwd)
out=$root/.bed-pack; mkdir -p "$out"
t=$(mktemp -d)
"$py" -m pip download -q --no-deps --only-binary=:all: --python-version "$ver" --platform manylinux_2_28_x86_64 --platform manylinux_2_27_x86_64 -d "$t/w" mitsuba==3.9.1 drjit==1.5.0
mkdir -p "$t/p/llvm"
for f in "$t"/w/*.whl; do "$py" -m zipfile -e "$f" "$t/p"; done
cd "$t/p"
rm -rf ./*.dist-info drjit/include mitsuba/include drjit/share mitsuba/share mitsuba/cmake mitsuba/data mitsuba/stubs
find . \( -name '*.pyi' -o -name '*.a' -o -name '*.cmake' -o -name '*.h' -o -name '*.hpp' \) -delete
for f in mitsuba/*_ad_*.so mitsuba/scalar_*.so; do
  case $f in mitsuba/llvm_ad_rgb.*) ;; *) rm "$f" ;; esac
done
for f in mitsuba/plugins/*.so; do
  case $(basename "$f" .so) in
    area|constant|diffuse|rectangle|independent|multijitter|gaussian|hdrfilm|path|bitmap|d65|uniform|srgb|merge|perspective|regular) ;;
    *) rm "$f" ;;
  esac
done
# LLVM as Debian builds it wants libraries for proofs, markup and command lines, none of which compiling a kernel calls: empty ones do.
llvm=$(find /usr/lib -name 'libLLVM.so.19*' -type f | head -n 1)
cp "$llvm" llvm/libLLVM.so
nm -D --undefined-only "$llvm" | awk '{print $2}' >"$t/asked"
empty() {
  so=$1; grep -E "$2" "$t/asked" | "$py" -c '
import sys
by = {}
for line in sys.stdin:
    name, _, version = line.strip().partition("@")
    by.setdefault(version.lstrip("@"), []).append(name)
open(sys.argv[1], "w").write("".join("void *%s(void) { return 0; }\n" % n for names in by.values() for n in names))
open(sys.argv[2], "w").write("".join("%s { global: %s };\n" % (v, " ".join(n + ";" for n in names)) for v, names in by.items() if v))' "$t/e.c" "$t/e.map"
  script=""; [ -s "$t/e.map" ] && script="-Wl,--version-script=$t/e.map"
  # shellcheck disable=SC2086
  gcc -w -shared -fPIC -Wl,-soname,"$so" $script -o "llvm/$so" "$t/e.c"
}
empty libz3.so.4 '^Z3_'; empty libxml2.so.2 '^xml'; empty libedit.so.2 '^(el_|history|tok_)'
for so in libffi.so.8 libzstd.so.1 libtinfo.so.6; do cp -L "$(ldconfig -p | awk -v s="$so" '$1 == s {print $NF; exit}')" llvm/; done
find . -name '*.so*' -exec strip --strip-unneeded {} + 2>/dev/null || true
find . -type f -perm -u+x -size +200k ! -name '*.so*' -delete
tar -c . | xz -6 -T2 >"$out/renderer.tar.xz"
if [ ! -f "$out/grounds.tar" ]; then
  sh "$here/grounds.sh" "$t/g" "$py"
  tar -C "$t/g" -cf "$out/grounds.tar" .
fi
rm -rf "$t"
ls -l "$out"
