//! One net: its weights are in the program, its kernels are rten's.

use rten::{Model, ModelOptions, NodeId, ValueOrView, op_registry};
use rten_tensor::{AsView, NdTensor};

/// A net that takes one picture.
pub(super) struct Net {
    model: Model,
    input: NodeId,
    outputs: Vec<NodeId>,
}

impl Net {
    /// Reads an ONNX graph; `None` where it is damaged, which a test rules out for those in the program.
    ///
    /// On a thread of its own: whoever waits for rten's threads from one of rayon's takes up other work meanwhile, which may ask
    /// for the same net, and would wait for itself.
    pub(super) fn of(onnx: &'static [u8]) -> Option<Self> {
        if cfg!(target_family = "wasm") {
            return Self::read(onnx);
        }
        std::thread::Builder::new().spawn(move || Self::read(onnx)).ok()?.join().ok()?
    }

    fn read(onnx: &'static [u8]) -> Option<Self> {
        let operators = op_registry!(Add, Concat, Conv, DepthToSpace, Identity, Relu, Resize, Squeeze, Sub);
        let model = ModelOptions::with_ops(operators).prepack_weights(true).load_static_slice(onnx).ok()?;
        let input = *model.input_ids().first()?;
        let outputs = model.output_ids().to_vec();
        Some(Self { model, input, outputs })
    }

    /// Runs the net on `[channels, height, width]` samples, row by row; the outputs flattened, in the graph's order.
    ///
    /// On a thread of its own, too: one of rayon's would take up whole photos while it waits, one within the other, until its stack
    /// is full.
    pub(super) fn run(&self, shape: [usize; 3], samples: Vec<f32>) -> Option<Vec<Vec<f32>>> {
        if cfg!(target_family = "wasm") {
            return self.run_here(shape, samples);
        }
        std::thread::scope(|scope| {
            let run = move || self.run_here(shape, samples);
            std::thread::Builder::new().spawn_scoped(scope, run).ok()?.join().ok()?
        })
    }

    fn run_here(&self, shape: [usize; 3], samples: Vec<f32>) -> Option<Vec<Vec<f32>>> {
        let picture = NdTensor::from_data([1, shape[0], shape[1], shape[2]], samples);
        let inputs = vec![(self.input, ValueOrView::from(picture.view().as_dyn()))];
        let outputs = self.model.run(inputs, &self.outputs, None).ok()?;
        outputs.into_iter().map(|value| Some(value.into_tensor::<f32>()?.to_vec())).collect()
    }
}

/// From a logit to a probability.
pub(super) fn logistic(logit: f32) -> f32 {
    1.0 / (1.0 + (-logit).exp())
}
