#!/bin/sh
# Paint with one process per core, spread over the GPUs: many.sh FIRST_SEED SECONDS OUT [SPP]   (logs in OUT.logs)
here=$(cd "$(dirname "$0")" && pwd)
n=$(nproc); g=$(nvidia-smi -L | wc -l); mkdir -p "$3" "$3.logs"
i=0
while [ $i -lt "$n" ]; do
  CUDA_VISIBLE_DEVICES=$((i % g)) OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 python3 "$here/paint.py" --first $(($1 + i)) --step "$n" --seconds "$2" --out "$3" --spp "${4:-25}" --variant cuda_ad_rgb >"$3.logs/$i" 2>&1 &
  i=$((i + 1))
done
wait
tail -qn1 "$3".logs/*
