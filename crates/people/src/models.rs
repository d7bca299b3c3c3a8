//! The three models and how they are run.

use rten::{Model, ModelOptions, NodeId, ValueOrView};
use rten_tensor::Layout;
use rten_tensor::NdTensor;
use rten_tensor::prelude::*;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// What can go wrong here.
#[derive(Debug, Error)]
pub enum PeopleError {
    /// The model files are not where they should be.
    #[error(
        "no face models in {directory}: {name} is missing; run script/setup, or draw patches by hand"
    )]
    Missing {
        /// Where they were looked for.
        directory: PathBuf,
        /// The first file that is missing.
        name: &'static str,
    },
    /// A model file cannot be used.
    #[error(
        "the face model {path} cannot be used ({reason}); delete it and run script/setup again"
    )]
    Unusable {
        /// The file.
        path: PathBuf,
        /// What the runtime says.
        reason: String,
    },
    /// A model failed on a picture.
    #[error("the face model {name} failed on a picture of {width}x{height}: {reason}")]
    Run {
        /// The model.
        name: &'static str,
        /// Columns of its input.
        width: usize,
        /// Rows of its input.
        height: usize,
        /// What the runtime says.
        reason: String,
    },
}

/// One model with its named inputs and outputs resolved.
pub(crate) struct Network {
    name: &'static str,
    model: Model,
    input: NodeId,
    outputs: Vec<NodeId>,
}

impl Network {
    fn load(directory: &Path, name: &'static str, outputs: &[&str]) -> Result<Self, PeopleError> {
        let path = directory.join(name);
        if !path.is_file() {
            return Err(PeopleError::Missing {
                directory: directory.to_path_buf(),
                name,
            });
        }
        let unusable = |reason: String| PeopleError::Unusable {
            path: path.clone(),
            reason,
        };
        let mut options = ModelOptions::with_all_ops();
        options.prepack_weights(true);
        let model = options
            .load_file(&path)
            .map_err(|error| unusable(error.to_string()))?;
        let input = *model
            .input_ids()
            .first()
            .ok_or_else(|| unusable("it has no input".into()))?;
        let outputs = outputs
            .iter()
            .map(|output| {
                model
                    .node_id(output)
                    .map_err(|error| unusable(error.to_string()))
            })
            .collect::<Result<_, _>>()?;
        Ok(Self {
            name,
            model,
            input,
            outputs,
        })
    }

    /// Runs the model on one picture of shape (1, 3, height, width); returns each output flat.
    pub(crate) fn run(&self, input: NdTensor<f32, 4>) -> Result<Vec<Vec<f32>>, PeopleError> {
        let (height, width) = (input.size(2), input.size(3));
        let failed = |reason: String| PeopleError::Run {
            name: self.name,
            width,
            height,
            reason,
        };
        let input: ValueOrView<'_> = input.into_dyn().into();
        let outputs = self
            .model
            .run(vec![(self.input, input)], &self.outputs, None)
            .map_err(|error| failed(error.to_string()))?;
        outputs
            .into_iter()
            .map(|output| {
                let tensor: rten_tensor::Tensor<f32> = output
                    .try_into()
                    .map_err(|_| failed("an output is not of numbers".into()))?;
                Ok(tensor.to_vec())
            })
            .collect()
    }
}

/// The face models, loaded once and used from one thread.
pub struct Models {
    pub(crate) boxes: Network,
    pub(crate) mesh: Network,
    pub(crate) embedding: Network,
}

impl Models {
    /// The files that [`Self::load`] wants.
    pub const FILES: [&str; 3] = ["boxes.onnx", "mesh.onnx", "embedding.onnx"];

    /// Loads `boxes.onnx`, `mesh.onnx` and `embedding.onnx` from a directory.
    ///
    /// # Errors
    /// [`PeopleError::Missing`] where set-up has not made them, [`PeopleError::Unusable`] for a file
    /// that is not such a model.
    pub fn load(directory: &Path) -> Result<Self, PeopleError> {
        Ok(Self {
            boxes: Network::load(directory, "boxes.onnx", &crate::find::OUTPUTS)?,
            mesh: Network::load(directory, "mesh.onnx", &crate::mesh::OUTPUTS)?,
            embedding: Network::load(directory, "embedding.onnx", &["embedding"])?,
        })
    }
}
